"""Pages of a bundle: verdict, finding aid, holes, comparison."""
