"""One build's order as data, to be looked at: states and their values, moves, operations, what holds what back.

:func:`graph` draws it up from a plan. ``after`` is reduced to what is not implied by others (transitive reduction).
The pictures made of it live beside this module: ``graph_text`` for the terminal, ``graph_svg`` for the printer;
``order_sheet`` lays the same build out in one safe order.
"""
