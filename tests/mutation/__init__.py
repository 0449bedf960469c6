"""Parts of the mutation runs: the changes, the tests that execute each line, and the runs."""
