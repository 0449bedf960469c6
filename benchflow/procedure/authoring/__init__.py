"""For authors: the JSON Schema for editors, and the author's guide."""
