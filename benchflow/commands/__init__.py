"""One module a command, or a few that belong together. Each imports late what it needs."""
