"""What a person sees: words, tables, pictures, pages and files."""
