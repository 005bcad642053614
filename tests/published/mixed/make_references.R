# Writes the reference fits of this folder, one TOML a fit: Rscript make_references.R [name ...]
# STATSMODELS_RESULTS names the folder of dietox.csv and pastes.csv inside the statsmodels wheel.
# Each fit: lmerTest::lmer, then Newton steps on lme4's own deviance (numDeriv), so that the optimum is tight.
suppressMessages({library(lme4); library(lmerTest); library(pbkrtest); library(numDeriv)})
source("fits.R")

OPTIONS <- list(bobyqa = list(rhobeg = .2, rhoend = 1e-10, maxfun = 1e5), Nelder_Mead = list(maxfun = 1e5, FtolRel = 1e-15, XtolRel = 1e-10),
                nloptwrap = list(ftol_abs = 1e-12, xtol_abs = 1e-10, maxeval = 1e5))

newton <- function(devfun, theta) {          # from lme4's optimum to a gradient of about 1e-8
  best <- devfun(theta)
  for (k in 1:4) {
    step <- solve(hessian(devfun, theta), grad(devfun, theta))
    if (!is.finite(devfun(theta - step)) || devfun(theta - step) > best + 1e-7) break
    theta <- theta - step
  }
  theta
}

tight_fit <- function(formula, data, REML) {
  parts <- lFormula(formula, data, REML = REML)
  devfun <- do.call(mkLmerDevfun, parts)
  tries <- lapply(list(c("bobyqa", 1), c("Nelder_Mead", 1), c("bobyqa", .1), c("bobyqa", 10), c("nloptwrap", 1)), function(how) {
    start <- parts$reTrms$theta * as.numeric(how[2])
    suppressWarnings(optimizeLmer(devfun, optimizer = how[1], start = start, control = OPTIONS[[how[1]]]))
  })
  rough <- tries[[which.min(sapply(tries, `[[`, "fval"))]]
  theta <- rough$par
  if (all(theta[parts$reTrms$lower == 0] > 1e-3)) theta <- newton(devfun, theta)
  rough$fval <- devfun(theta); rough$par <- theta
  mkMerMod(environment(devfun), rough, parts$reTrms, parts$fr,
           mc = substitute(lme4::lmer(F, data, REML = R), list(F = formula, R = REML)))
}

num <- function(x) paste0("[", paste(sprintf("%.12g", x), collapse = ", "), "]")
quoted <- function(x) paste0("[", paste0('"', x, '"', collapse = ", "), "]")

coefficients_of <- function(m) {
  satterthwaite <- summary(m)$coefficients
  kr <- coef(summary(m, ddf = "Kenward-Roger"))
  list(estimate = fixef(m), std_error = satterthwaite[, "Std. Error"],
       satterthwaite_df = satterthwaite[, "df"], kr_df = kr[, "df"], kr_std_error = kr[, "Std. Error"])
}

group_lines <- function(m) {
  unlist(lapply(names(VarCorr(m)), function(g) {
    v <- VarCorr(m)[[g]]
    c(sprintf("[covariance.\"%s\"]", g), paste("names =", quoted(colnames(v))), paste("matrix =", num(as.matrix(v))), "")
  }))
}

write_fit <- function(name, f) {
  data <- f$data()
  assign("data", data, envir = globalenv())  # lmerTest and pbkrtest look it up by name
  m <- as_lmerModLmerTest(tight_fit(f$formula, data, TRUE))
  ml <- tight_fit(f$formula, data, FALSE)
  co <- coefficients_of(m)
  command <- sprintf("lmer(%s, %s, REML = TRUE)", paste(deparse(f$formula, 500), collapse = ""), f$source)
  lines <- c(paste("#", R.version.string, "lme4", packageVersion("lme4"), "lmerTest", packageVersion("lmerTest"),
                   "pbkrtest", packageVersion("pbkrtest")),
             paste("# R>", command), if (!is.null(f$note)) paste("#", f$note),
             sprintf('source = "%s"', f$source), sprintf('outcome = "%s"', all.vars(f$formula)[1]),
             sprintf('mean = "%s"', f$mean),
             paste0("varies = [", paste(sapply(f$varies, quoted), collapse = ", "), "]"),
             sprintf("rows = %d", nrow(data)), sprintf("groups = %s", num(sapply(f$varies, function(v) length(unique(data[[v[1]]]))))),
             sprintf("is_singular = %s", tolower(isSingular(m, tol = 1e-4))),
             "", "# R> logLik(fit); the same with REML = FALSE; sigma(fit)",
             sprintf("reml_log_likelihood = %.12g", logLik(m)), sprintf("ml_log_likelihood = %.12g", logLik(ml)),
             sprintf("residual_sd = %.12g", sigma(m)), sprintf("ml_residual_sd = %.12g", sigma(ml)),
             "", '# R> summary(fit); coef(summary(fit, ddf = "Kenward-Roger"))',
             paste("terms =", quoted(names(fixef(m)))),
             sprintf("%s = %s", names(co), sapply(co, num)),
             "# R> fixef(update(fit, REML = FALSE)); sqrt(diag(vcov(.)))",
             paste("ml_estimate =", num(fixef(ml))), paste("ml_std_error =", num(sqrt(diag(as.matrix(vcov(ml)))))),
             "", "# R> VarCorr(fit)", group_lines(m))
  writeLines(lines, paste0(name, ".toml"))
  cat(sprintf("%-24s reml %.9f singular %s\n", name, logLik(m), isSingular(m)))
}

wanted <- commandArgs(TRUE)
for (name in if (length(wanted)) wanted else names(FITS))
  tryCatch(write_fit(name, FITS[[name]]), error = function(e) cat(name, "FAILED:", conditionMessage(e), "\n"))
