"""The order of a build: what may be done next, the route to an operation, safe rework, and the proof of all orders."""
