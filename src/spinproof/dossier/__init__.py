"""The signed package: statements, the document, the list of sums, its signature, its check."""
