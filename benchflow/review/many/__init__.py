"""Questions about many builds: trend, comparison, shared instruments and lots."""
