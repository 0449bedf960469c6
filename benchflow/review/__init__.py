"""Work with finished logs: evidence, comparison, tracing, build sheets, exports, and the archive of the shop."""
