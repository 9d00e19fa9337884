"""Many trials at once: the steps of a single trial over the jars of all of them.

`find` looks for the trials, `run` goes through them in parts (`parts`, `four_tables`, `chunks`);
`as_arrays`, `setup_tables`, `descriptions`, `jar_records` and `joined` read tables that hold many,
`cell_by_cell` those with which anything is odd; `join` puts trials that are read alike into one;
`outcome` takes them through the steps. Tests hold every figure equal to that of a trial by itself.
"""
