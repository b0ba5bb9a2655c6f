module fornix

go 1.26
