"""Answers that crews gave on phones and tablets."""
