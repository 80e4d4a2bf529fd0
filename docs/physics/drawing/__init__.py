"""The pictures of the physics pages, one module a page, each computed by the project's own models."""
