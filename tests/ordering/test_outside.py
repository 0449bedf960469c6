"""The proof against general-purpose tools: a solver, a model checker and a graph library."""
