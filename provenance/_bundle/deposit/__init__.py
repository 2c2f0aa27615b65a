"""Describes a bundle in the forms that repositories take in, one module a form."""
