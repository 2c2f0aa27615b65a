"""Takes bundles into a repository: verified, numbered, registered, with a receipt."""
