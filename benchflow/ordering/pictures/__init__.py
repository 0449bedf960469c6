"""The order of a build for people: as text, as an SVG picture, and as a printed order sheet."""
