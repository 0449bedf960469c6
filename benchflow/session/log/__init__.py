"""The session log on disk: the format of a line, the journal, the lock, sidecar files, timestamps."""
