"""The procedure file: model, reading, checks, and the plan of one build.

==================  =======================================================================
``model``           the procedure as the author wrote it, as frozen types
``reader``          text to a procedure, or a list of problems with line and column
``compiled_cache``  loads a procedure file; a compiled form makes the next start faster
``plan``            the plan of one build: options answered, repeated operations written out
``expand``          makes a plan from a procedure and the answers to its options
``identity``        names with places, such as ``journal[2]``
``problems``        a problem in the author's file
``joint_layouts``   positions of the fasteners of a joint
``formula/``        formulas: parsing, units, evaluation
``yaml_source/``    YAML text to a tree of nodes
``shapes/``         kinds of values in a file: nodes to values, and JSON Schema
``keys/``           the keys of the format, one module per subject
``checks/``         checks that need the whole procedure
``authoring/``      JSON Schema and the author's guide, made from the keys
==================  =======================================================================

To add a key: write a ``Key`` in the module of its subject, a field in ``model``, and use it in
``tests/procedure/good/every-key.yaml``.
"""
