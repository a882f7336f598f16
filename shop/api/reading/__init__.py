"""The API to read: a reference made from the committed description, a first walk, and a page for each problem."""
