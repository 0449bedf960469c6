"""Tools for the author of a procedure: drafts, revisions, and the check that runs again at each save."""
