"""What an author writes: the model, the reader, problems with line and column, formulas, joint layouts.

A text becomes a tree with places (``source``, ``nodes``). What may stand where is said once, by shapes (``shape``,
``shapes``, ``keys``, ``measures``, ``referring``), key by key in the ``*_keys`` modules; ``reader``, ``schema`` and
``guide`` are made from them. What was read is then held against itself (``names``, ``value_checks``,
``tightening_keys``, ``instrument_checks``). ``cache`` is the way in for everybody else, ``expand`` the way on.

To add a key: a ``Key`` in the module of its subject, a field in ``model``, and a line in ``tests/procedure/good``.
"""
