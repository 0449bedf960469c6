"""The shop's archive: an index over the logs of many sessions. The files stay the truth."""
