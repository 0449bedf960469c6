"""Shapes of the YAML in a procedure file. A shape reads one kind of value, and gives the JSON Schema for it.

====================  ==================================================================
``shape_base``        the base class, and the context of one reading
``basic_shapes``      texts, names, numbers, lists, mappings with names as keys
``keyed_shapes``      mappings with fixed keys; reports unknown and missing keys
``quantity_shapes``   quantities, limits, units
``reference_shapes``  names that are defined elsewhere in the file
====================  ==================================================================
"""
