"""What things are made of and how they behave: formulas, ingredients, published physical properties."""
