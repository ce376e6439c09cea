"""Parts of pages that draw for themselves in the browser."""
