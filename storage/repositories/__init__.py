"""What is kept under which name, one repository a kind of row; knows no use case."""
