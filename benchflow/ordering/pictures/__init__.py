"""The order of a build for people: as text, as an SVG picture, and as a printed order sheet.

====================  ================================================================
``order_graph``       the order as data, with redundant prerequisites left out
``order_graph_text``  the graph as plain text
``order_graph_svg``   the graph as an SVG picture
``order_tracks``      the layout of the prerequisite lines of the picture
``order_sheet``       one safe order of the build, with the reason for each line
====================  ================================================================
"""
