"""Thousands of trials at once: the same steps as for one, over the jars of many trials together.

`batch` joins trials that are read alike, `net` takes the blanks off and averages, `kinetics` fits,
`stop` and `verdicts` judge; `tables` and `places` read, `run` goes through an archive in parts.
Tests hold every figure equal to that of a trial analysed alone.
"""
