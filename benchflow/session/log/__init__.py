"""The session log on disk: line format, journal, lock, sidecar files, timestamps."""
