"""The build sheet and the printed order sheet."""
