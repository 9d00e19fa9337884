"""Sheets that people made for themselves, taken over into the four tables of a trial.

`grid` reads any workbook or CSV, `find` finds the tables in it, `propose` says what each column
may be, `answers` writes that as a small text file and reads it back, `build` makes the four tables
that the reader takes. Nothing is taken over that a person has not confirmed.
"""
