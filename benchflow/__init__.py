"""benchflow: guides an assembly at the bench in a safe order, judges measurements, and keeps a log."""

__version__ = "0.2.0"
