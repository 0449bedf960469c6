"""The sums of the trade: fasteners, fits, uncertainty, cam timing, matching."""
