"""Commands, one module for each family; ``simsearch.cli`` gathers them."""
