"""Simulates flights with known truth and writes them as real log files.

Nothing here is taken from the package that reads the logs: no code, no constants, no noise
figures. What the reader says can therefore be held against what really happened.
"""
