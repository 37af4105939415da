"""What the sensors say together. Works on windows of arrays; knows no file format."""
