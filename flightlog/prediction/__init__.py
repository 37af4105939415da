"""Models over many sorties: plain tables of numbers in, predictions with their spread out."""
