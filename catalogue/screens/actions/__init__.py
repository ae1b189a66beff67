"""What several pages let a person do: correct, refile, open and copy files."""
