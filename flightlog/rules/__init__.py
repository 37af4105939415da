"""Limits, outcomes and scoring."""
