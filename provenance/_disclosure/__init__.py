"""Finds in open texts what is withheld elsewhere: places, people, numbers."""
