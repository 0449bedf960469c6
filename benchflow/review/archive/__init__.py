"""The shop's archive: an index of the logs of many sessions. The log files remain the original records."""
