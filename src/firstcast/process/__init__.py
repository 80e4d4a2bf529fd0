"""The physics of print, mould, cast and paint, free of geometry; figures in `data/*.toml`."""
