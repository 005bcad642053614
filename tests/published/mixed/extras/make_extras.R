# Contrasts, F tests, cluster-robust errors, profiles and residual variance models by R, on fits of ../fits.R.
# Rscript make_extras.R   (writes the TOML files of this folder)
suppressMessages({library(lme4); library(lmerTest); library(pbkrtest); library(emmeans); library(nlme); library(clubSandwich)})
setwd(".."); source("fits.R"); setwd("extras")
emm_options(lmer.df = "kenward-roger", pbkrtest.limit = 5000)
tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhobeg = .2, rhoend = 1e-10, maxfun = 1e5), calc.derivs = FALSE)
num <- function(x) paste0("[", paste(sprintf("%.12g", x), collapse = ", "), "]")
versions <- paste("# R", getRversion(), paste(sapply(c("lme4", "lmerTest", "pbkrtest", "emmeans", "nlme", "clubSandwich"),
                  function(p) paste(p, packageVersion(p))), collapse = ", "))
lmer_of <- function(name, REML = TRUE) {
  f <- FITS[[name]]; assign("data", f$data(), globalenv())
  eval(substitute(lmer(F, data, REML = R, control = tight), list(F = f$formula, R = REML)), globalenv())
}

contrast_block <- function(name, command, pairs, adjusted, asked = character()) {
  s <- as.data.frame(summary(pairs, adjust = "none")); a <- as.data.frame(summary(pairs, adjust = adjusted))
  estimate <- s[[intersect(c("estimate"), names(s))]]
  c("[[contrasts]]", paste("# R>", command), sprintf('fit = "%s"', name), asked,
    paste0("labels = [", paste0('"', s$contrast, '"', collapse = ", "), "]"),
    paste0("weights = [", paste(apply(pairs@linfct, 1, num), collapse = ", "), "]"),
    paste("estimate =", num(estimate)), paste("std_error =", num(s$SE)), paste("df =", num(s$df)),
    paste("p =", num(s$p.value)), sprintf('adjustment = "%s"', adjusted), paste("p_adjusted =", num(a$p.value)), "")
}
contrasts <- function() {
  o <- lmer_of("orthodont_sex"); od <- data
  lines <- c(contrast_block("orthodont_sex", 'pairs(emtrends(fit, ~ Sex, "age11"))', pairs(emtrends(o, ~ Sex, "age11", data = od)), "holm"),
             contrast_block("orthodont_sex", "pairs(emmeans(fit, ~ Sex, at = list(age11 = 3)))", pairs(emmeans(o, ~ Sex, at = list(age11 = 3), data = od)), "holm"))
  m <- lmer_of("machines"); md <- data
  lines <- c(lines, contrast_block("machines", "pairs(emmeans(fit, ~ Machine))", pairs(emmeans(m, ~ Machine, data = md)), "holm", 'factor = "Machine"'),
             contrast_block("machines", "pairs(emmeans(fit, ~ Machine))", pairs(emmeans(m, ~ Machine, data = md)), "tukey", 'factor = "Machine"'))
  d <- lmer_of("dietox3"); dd <- data
  lines <- c(lines, contrast_block("dietox3", 'pairs(emtrends(fit, ~ Cu, "Time"))', pairs(emtrends(d, ~ Cu, "Time", data = dd)), "holm", c('factor = "Cu"', 'along = "Time"')),
             contrast_block("dietox3", "pairs(emmeans(fit, ~ Cu, at = list(Time = 12)))", pairs(emmeans(d, ~ Cu, at = list(Time = 12), data = dd)), "holm", c('factor = "Cu"', "at = {Time = 12.0}")))
  b <- lmer_of("bodyweight"); bd <- data
  lines <- c(lines, contrast_block("bodyweight", 'pairs(emtrends(fit, ~ Diet, "Time"))', pairs(emtrends(b, ~ Diet, "Time", data = bd)), "tukey"))
  a <- lmer_of("alfalfa"); ad <- data
  lines <- c(lines, contrast_block("alfalfa", 'pairs(emmeans(fit, ~ Variety))', pairs(emmeans(a, ~ Variety, data = ad)), "tukey"))
  y <- lmer_of("oats"); yd <- data
  lines <- c(lines, contrast_block("oats", "pairs(emmeans(fit, ~ Variety))", pairs(emmeans(y, ~ Variety, data = yd)), "holm", 'factor = "Variety"'),
             contrast_block("oats", "pairs(emmeans(fit, ~ dose))", pairs(emmeans(y, ~ dose, data = yd)), "tukey", 'factor = "dose"'))
  writeLines(c(versions, lines), "contrasts.toml")
}

means_block <- function(name, factor, command, means, at = character()) {
  s <- as.data.frame(summary(means))
  c("[[marginal_means]]", paste("# R>", command), sprintf('fit = "%s"', name), sprintf('factor = "%s"', factor), at,
    paste0("levels = [", paste0('"', s[[factor]], '"', collapse = ", "), "]"), paste("estimate =", num(s$emmean)),
    paste("std_error =", num(s$SE)), paste("df =", num(s$df)), paste("low =", num(s$lower.CL)), paste("high =", num(s$upper.CL)), "")
}
marginal_means <- function() {
  m <- lmer_of("machines"); md <- data
  lines <- means_block("machines", "Machine", "emmeans(fit, ~ Machine)", emmeans(m, ~ Machine, data = md))
  y <- lmer_of("oats"); yd <- data
  lines <- c(lines, means_block("oats", "Variety", "emmeans(fit, ~ Variety)", emmeans(y, ~ Variety, data = yd)),
             means_block("oats", "dose", "emmeans(fit, ~ dose)", emmeans(y, ~ dose, data = yd)))
  d <- lmer_of("dietox3"); dd <- data
  lines <- c(lines, means_block("dietox3", "Cu", "emmeans(fit, ~ Cu, at = list(Time = 12))", emmeans(d, ~ Cu, at = list(Time = 12), data = dd), "at = {Time = 12.0}"))
  writeLines(c(versions, lines), "marginal_means.toml")
}

f_block <- function(name, pattern) {
  m <- lmer_of(name); terms <- names(fixef(m)); L <- diag(length(terms))[grep(pattern, terms), , drop = FALSE]
  kr <- KRmodcomp(m, L)$test; sat <- contestMD(as_lmerModLmerTest(m), L)
  c("[[f_tests]]", sprintf("# R> KRmodcomp(fit, L); contestMD(fit, L) with L the rows of the coefficients %s", gsub("\\\\", "", pattern)),
    sprintf('fit = "%s"', name), paste0("weights = [", paste(apply(L, 1, num), collapse = ", "), "]"),
    sprintf("numerator_df = %d", nrow(L)),
    sprintf("kr_statistic = %.12g", kr["Ftest", "stat"]), sprintf("kr_df = %.12g", kr["Ftest", "ddf"]),
    sprintf("kr_scaling = %.12g", kr["Ftest", "F.scaling"]), sprintf("kr_p = %.12g", kr["Ftest", "p.value"]),
    sprintf("satterthwaite_statistic = %.12g", sat[["F value"]]), sprintf("satterthwaite_df = %.12g", sat[["DenDF"]]), "")
}
f_tests <- function() writeLines(c(versions, f_block("oats", "^dose[0-9.]+$"), f_block("oats", ":"), f_block("dietox3", "Time:"),
  f_block("bodyweight", "Time:"), f_block("alfalfa", ":"), f_block("machines", "Machine"), f_block("rat_pups", "Treatment"),
  f_block("milk", "Time:"), f_block("pixel", "day")), "f_tests.toml")

cr2_block <- function(name, cluster) {
  m <- lmer_of(name); v <- vcovCR(m, cluster = data[[cluster]], type = "CR2"); t <- coef_test(m, vcov = v, test = "Satterthwaite")
  c("[[cr2]]", sprintf('# R> coef_test(fit, vcov = vcovCR(fit, cluster = %s, type = "CR2"), test = "Satterthwaite")', cluster),
    sprintf('fit = "%s"', name), sprintf('cluster = "%s"', cluster), paste("std_error =", num(t$SE)), paste("df =", num(t$df)), "")
}
cr2 <- function() writeLines(c(versions, cr2_block("orthodont_sex", "Subject"), cr2_block("bodyweight", "Rat"), cr2_block("dietox_slope", "Pig"),
  cr2_block("milk", "Cow"), cr2_block("rat_pups", "Litter"), cr2_block("dietox3", "Litter"), cr2_block("sitka", "tree")), "cr2.toml")

profile_block <- function(name) {
  m <- lmer_of(name, REML = FALSE); ci <- confint(m, method = "profile", oldNames = FALSE, quiet = TRUE)
  c("[[profiles]]", '# R> confint(update(fit, REML = FALSE), method = "profile", oldNames = FALSE)', sprintf('fit = "%s"', name),
    paste0("names = [", paste0('"', rownames(ci), '"', collapse = ", "), "]"), paste("low =", num(ci[, 1])), paste("high =", num(ci[, 2])), "")
}
profiles <- function() writeLines(c(versions, profile_block("sleepstudy_slope"), profile_block("dyestuff"), profile_block("orthodont_sex"),
  profile_block("pastes3"), profile_block("oxboys")), "profiles.toml")

predictions <- function() {
  block <- function(name) { m <- lmer_of(name); r <- ranef(m, condVar = TRUE)
    unlist(lapply(names(r), function(g) { v <- attr(r[[g]], "postVar"); k <- seq_len(min(6, nrow(r[[g]])))
      c("[[predictions]]", "# R> ranef(fit, condVar = TRUE), the first six groups", sprintf('fit = "%s"', name), sprintf('by = "%s"', g),
        paste0("groups = [", paste0('"', rownames(r[[g]])[k], '"', collapse = ", "), "]"),
        paste0("effects = [", paste(apply(as.matrix(r[[g]])[k, , drop = FALSE], 1, num), collapse = ", "), "]"),
        paste0("std_errors = [", paste(sapply(k, function(i) num(sqrt(diag(as.matrix(v[, , i]))))), collapse = ", "), "]"), "") })) }
  writeLines(c(versions, block("sleepstudy_slope"), block("dyestuff"), block("dietox3"), block("milk")), "predictions.toml")
}

control <- lmeControl(maxIter = 500, msMaxIter = 500, niterEM = 50, tolerance = 1e-10, msTol = 1e-12, opt = "nlminb", returnObject = TRUE)
variance_block <- function(name, command, fixed, random, weights) {
  assign("data", FITS[[name]]$data(), globalenv())
  m <- do.call(lme, list(fixed, data, random, weights = weights, method = "REML", control = control))
  plain <- do.call(lme, list(fixed, data, random, method = "REML", control = control))
  ml <- do.call(lme, list(fixed, data, random, weights = weights, method = "ML", control = control))
  c("[[variance_models]]", paste("# R>", command), sprintf('fit = "%s"', name), sprintf("reml_log_likelihood = %.12g", logLik(m)),
    sprintf("ml_log_likelihood = %.12g", logLik(ml)), sprintf("plain_reml_log_likelihood = %.12g", logLik(plain)),
    sprintf("likelihood_ratio = %.12g", 2 * (logLik(m) - logLik(plain))), sprintf("residual_sd = %.12g", m$sigma),
    paste0("coefficients_of_variance = ", num(coef(m$modelStruct$varStruct, unconstrained = FALSE))),
    paste0("names_of_variance = [", paste0('"', names(coef(m$modelStruct$varStruct, unconstrained = FALSE)), '"', collapse = ", "), "]"),
    paste("estimate =", num(fixef(m))), paste("std_error =", num(sqrt(diag(vcov(m))))),
    paste("covariance =", num(as.matrix(getVarCov(m)))), "")
}
variance_models <- function() writeLines(c(versions,
  variance_block("orthodont_sex", "lme(distance ~ Sex * age11, Orthodont, ~ age11 | Subject, weights = varIdent(form = ~ 1 | Sex))", distance ~ Sex * age11, ~ age11 | Subject, varIdent(form = ~ 1 | Sex)),
  variance_block("bodyweight", "lme(weight ~ Time * Diet, BodyWeight, ~ Time | Rat, weights = varPower())", weight ~ Time * Diet, ~ Time | Rat, varPower()),
  variance_block("bodyweight", "lme(weight ~ Time * Diet, BodyWeight, ~ Time | Rat, weights = varIdent(form = ~ 1 | Diet))", weight ~ Time * Diet, ~ Time | Rat, varIdent(form = ~ 1 | Diet)),
  variance_block("dietox_slope", "lme(Weight ~ Time, dietox, ~ Time | Pig, weights = varPower())", Weight ~ Time, ~ Time | Pig, varPower()),
  variance_block("rat_pups", "lme(weight ~ sex + Lsize + Treatment, RatPupWeight, ~ 1 | Litter, weights = varIdent(form = ~ 1 | Treatment))", weight ~ sex + Lsize + Treatment, ~ 1 | Litter, varIdent(form = ~ 1 | Treatment)),
  variance_block("rat_pups", "lme(weight ~ sex + Lsize + Treatment, RatPupWeight, ~ 1 | Litter, weights = varPower())", weight ~ sex + Lsize + Treatment, ~ 1 | Litter, varPower())
  ), "variance_models.toml")

for (part in list(contrasts, marginal_means, f_tests, cr2, profiles, predictions, variance_models))
  tryCatch(part(), error = function(e) cat("FAILED:", conditionMessage(e), "\n"))
