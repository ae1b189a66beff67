"""The catalogue database: schema, numbered migrations, queries. The only room that knows SQL."""
