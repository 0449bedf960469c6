"""The keys of the file format, one module per subject: each key with its shape and its description.

===================  =======================================================================
``procedure_keys``   the top level of a file, and sections
``setup_keys``       options, places, state, interference, moves, kit, instruments, failures
``joint_keys``       joints and the layout of their fasteners
``operation_keys``   operations
``value_keys``       `record` and `work-out`: measured and calculated values
``part_keys``        `choose` and `match`: choice of parts
``tightening_keys``  `tighten` and its stages
===================  =======================================================================
"""
