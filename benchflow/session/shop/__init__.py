"""The shop's register of people and instruments: model, reader, writer."""
