"""Drawing for paper and screen: type, boxes, symbols, codes, SVG and PDF."""
