"""The forward model: fields and physics put together."""
