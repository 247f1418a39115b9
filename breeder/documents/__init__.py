"""PDFs to print: labels, slips and lists that go with animals and onto shelves. Reads only."""
