"""The screen: pages in a browser on this laptop, ordered by the moment of use. No arithmetic."""
