"""The page: requests in, one call of ``work``, HTML, SVG or JSON out; no arithmetic."""
