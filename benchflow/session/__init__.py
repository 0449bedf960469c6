"""One build: events, the journal on disk, state as a fold over them, the controller that decides."""
