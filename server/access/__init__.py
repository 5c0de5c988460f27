"""Who may speak to the server, and what every answer says to the browser about safety."""
