"""The steps from each version of the tables to the next. A step that has been released is never changed."""
