"""Helpers that every other package may use; they import nothing else of benchflow.

=================  ======================================================================
``errors``         the base error with a message for people
``plaintext``      removes control and invisible characters from text
``atomic_write``   replaces a file completely or not at all
``regular_file``   reads a file, and refuses a pipe or a device
``digest_cache``   a folder of decoded files, each checked by its SHA-256
``durations``      a duration as people write it
``svg``            builds an SVG drawing on ``xml.etree``
=================  ======================================================================
"""
