"""One build: events, the journal on disk, state as a fold over events, the desk that turns intents into events."""
