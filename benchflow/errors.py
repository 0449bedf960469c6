"""The one base error: a message for people, that says what, where and what to do."""


class BenchflowError(Exception):
    """Something that a person can mend; ``str(error)`` is written for that person."""


class Mistake(BenchflowError):
    """A programming mistake on our side: reported with where the log is, never with locals."""
