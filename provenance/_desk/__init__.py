"""The desk: the whole work as pages in the browser of one machine."""
