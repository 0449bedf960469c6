"""benchflow: an assembly procedure at the bench, in order, judged and logged."""

__version__ = "0.2.0"
