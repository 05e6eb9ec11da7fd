"""What can be computed: quantities, formulas, their catalogue, and the texts that compute the same in a spreadsheet."""
