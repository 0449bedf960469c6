"""One build: events, the journal on disk, state as a fold over them, the desk that decides."""
