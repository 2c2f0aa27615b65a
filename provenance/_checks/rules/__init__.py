"""The trade rules, a module a subject; provenance._checks.registry gathers them."""
