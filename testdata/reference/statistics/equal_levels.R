# Tables whose groupings cross with equally many levels: testers x sessions of each = testers x panels.
# Usage: Rscript equal_levels.R > equal_levels.json   (R with lme4 and jsonlite)
suppressMessages({library(lme4); library(jsonlite)})
tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-12, rhobeg = 0.1, maxfun = 100000), check.conv.singular = "ignore", calc.derivs = FALSE)
polish <- function(f, data) { m <- lmer(f, data, control = tight); for (i in 1:5) m <- update(m, start = getME(m, "theta")); m }
# value = 0.03 p + 0.05 sin(7t+3p+1) + 0.03 sin(5t+11s) + 0.008 sin(13t+17s+19p) + 0.004 sin(23t+29s+31p+37r), six decimals, all codes from 0
draw <- function(testers, sessions, panels, readings) {
  d <- expand.grid(r = 1:readings - 1, p = 1:panels - 1, s = 1:sessions - 1, t = 1:testers - 1)
  data.frame(value = round(with(d, 0.03*p + 0.05*sin(7*t+3*p+1) + 0.03*sin(5*t+11*s) + 0.008*sin(13*t+17*s+19*p) + 0.004*sin(23*t+29*s+31*p+37*r)), 6),
    panel = factor(sprintf("p%d", d$p)), tester = factor(sprintf("t%d", d$t)), session = factor(sprintf("t%ds%d", d$t, d$s)), d) }
case <- function(testers, sessions, panels, readings) {
  d <- draw(testers, sessions, panels, readings)
  f <- if (readings > 1) value ~ 0 + panel + (1|tester) + (1|session) + (1|tester:panel) + (1|session:panel) else value ~ 0 + panel + (1|tester) + (1|session) + (1|tester:panel)
  m <- polish(f, d); vc <- as.data.frame(VarCorr(m)); v <- as.list(vc$vcov); names(v) <- ifelse(vc$grp == "Residual", "residual", vc$grp)
  b <- fixef(m); V <- as.matrix(vcov(m)); p <- length(b)
  list(testers = testers, sessions = sessions, panels = panels, readings = readings, random = I(names(v)), log_likelihood = as.numeric(logLik(m)), variances = v,
    fixed = I(unname(b)), standard_error = I(unname(sqrt(diag(V)))), contrast_se = I(unname(sqrt(diag(V)[-1] + V[1, 1] - 2*V[1, -1])))) }
cat(toJSON(list(source = "lme4 lmer, restricted maximum likelihood", versions = list(R = R.version.string, lme4 = as.character(packageVersion("lme4"))),
  cases = list(case(2, 4, 4, 2), case(4, 4, 4, 2), case(4, 4, 4, 1), case(3, 5, 5, 2), case(6, 6, 6, 2))), auto_unbox = TRUE, digits = 12, pretty = TRUE), "\n")
