"""Events, the state of a session, and the fold from one to the other."""
