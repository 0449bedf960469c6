"""What an author writes: the model, the reader, problems with line and column, formulas, joint layouts."""
