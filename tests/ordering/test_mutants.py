"""The head install with one line struck out: each loss is caught, or shown to be no loss."""
