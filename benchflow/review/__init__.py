"""Afterwards: evidence, comparison, tracing, the build sheet, interchange, the archive of the shop."""
