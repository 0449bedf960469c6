"""One teardown: what comes off an assembly, in order, with its log, its intents and its record."""
