"""Checks that need the whole procedure.

=====================  ===========================================================
``name_checks``        unknown names and names defined twice
``value_checks``       formulas and their units, limits, tables, matchings
``formula_checks``     names, indexes and units in formulas
``attainable_limits``  limits that no readings can satisfy
``instrument_checks``  range and uncertainty of instruments
``tightening_checks``  order of the tightening stages, total angle, groups
``unused_names``       names that nothing uses
=====================  ===========================================================
"""
