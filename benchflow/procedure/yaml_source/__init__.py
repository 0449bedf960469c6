"""The author's text as a tree of nodes with line and column.

===================  ==================================================
``yaml_reader``      YAML text to a tree, with all problems
``yaml_nodes``       the nodes of the tree
``yaml_error_text``  errors of the YAML parser in plain words
===================  ==================================================
"""
