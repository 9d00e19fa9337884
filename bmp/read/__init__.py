"""The first step: from a workbook or a folder of CSV tables to a frozen `Trial`."""

from bmp.read.reader import read_trial, read_with_problems

__all__ = ["read_trial", "read_with_problems"]
