"""The keys of the file format, one module per subject: each key with its shape and its description."""
