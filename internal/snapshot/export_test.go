package snapshot

// RoundedRanking is for tests.
var RoundedRanking = roundedRanking
