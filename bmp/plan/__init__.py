"""Plan a trial: doses, expected gas, readings, the logbook and the sheet for the wall."""
