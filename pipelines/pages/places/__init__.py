"""The places of the web application: routes, forms and view of each."""
