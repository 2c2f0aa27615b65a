"""A store as pages: what comes in, where it lies, who has it, whether all of it is still there."""
