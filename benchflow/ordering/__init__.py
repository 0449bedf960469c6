"""The order of a build: what may be done next, the route to an operation, safe rework, and the proof of all orders.

========================  =====================================================================
``actions``               do an operation, undo one, make a move
``configuration``         the operations done and a value for each state variable
``interlock``             decides if a step or move is allowed now, with every reason if not
``wording``               titles and phrases for messages
``route``                 the shortest safe route to an operation
``route_relevance``       the steps, moves and variables that a route can involve
``stubborn_sets``         a reduction of the search for a route
``state_machine``         a plan on small integers, for fast searches
``rework``                a safe plan to undo operations
``latest_start``          the latest start of each step that keeps the open time windows
``time_network``          time bounds between events, and the test for contradictions
``finding_explanations``  the explanation of each finding, with an example
``proof/``                the proof over all orders
``pictures/``             the order as text, as an SVG picture and as a printed sheet
========================  =====================================================================
"""
