"""Does the trial hold, and if not, what went wrong.

`stop` applies the published stop rule, `criteria` the published limits from `criteria.csv`,
`reading_errors` looks for errors, `diagnosis` for what a feed did to the inoculum, and
`words` says in plain language what a yield can be relied upon for.
"""
