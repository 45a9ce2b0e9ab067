"""What every answer shares: terminal, page, document, drawing."""
