"""The trade rules, a module a subject; provenance.checks.registry gathers them."""
