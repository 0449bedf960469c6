"""The base error: its message tells a person what happened, where, and what to do."""


class BenchflowError(Exception):
    """An error that a person can correct. ``str(error)`` is the message for that person."""


class InternalError(BenchflowError):
    """A programming error in benchflow. It is reported with the path of the log, never with local variables."""
