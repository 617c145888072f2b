"""Small SVG plots in grey: one renderer for page, digest and command line."""
