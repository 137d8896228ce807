# The same questions, asked of R. Data arrive as R assignments in the file named first; each answer is a line "name<tab>value".
source(commandArgs(TRUE)[1])

say <- function(name, value) cat(sprintf("%s\t%.15g\n", name, value), sep = "")

# Growth: nls, and profile limits by refitting with one parameter held
gompertz <- y ~ A * exp(-exp(mu * exp(1) / A * (lag - t) + 1))
logistic <- y ~ A / (1 + exp(4 * mu / A * (lag - t) + 2))
richards <- y ~ A * (1 + nu * exp(1 + nu) * exp(mu / A * (1 + nu)^(1 + 1 / nu) * (lag - t)))^(-1 / nu)
tight <- nls.control(maxiter = 500, tol = 1e-7, minFactor = 1e-9, nDcentral = TRUE)

limits <- function(formula, rows, fit, name, stated) {
  degrees <- if (stated) Inf else df.residual(fit)
  scale <- if (stated) 1 else deviance(fit) / degrees
  best <- coef(fit)[name]
  step <- 4 * sqrt(diag(summary(fit)$cov.unscaled)[name] * scale)
  from <- coef(fit)[names(coef(fit)) != name]
  excess <- function(value) {
    held <- do.call(substitute, list(formula, setNames(list(value), name)))
    again <- nls(as.formula(held), rows, start = as.list(from), weights = weight, control = tight)
    (deviance(again) - deviance(fit)) / scale - qt(0.975, degrees)^2
  }
  sapply(c(-1, 1), function(side) uniroot(excess, sort(c(best, best + side * step)), tol = 1e-9 * step)$root)
}

growth <- function(label, formula, rows, start, stated = FALSE) {
  fit <- nls(formula, rows, start = start, weights = weight, control = tight)
  scale <- if (stated) 1 else sigma(fit)
  for (name in c("A", "mu", "lag")) {
    say(paste(label, name), coef(fit)[name])
    say(paste(label, "u", name), scale * sqrt(diag(summary(fit)$cov.unscaled))[name])
    if (label != "richards") say(paste(label, c("low", "high"), name), limits(formula, rows, fit, name, stated))
  }
  say(paste(label, "sigma"), sigma(fit))
  k <- length(coef(fit)) + 1
  say(paste(label, "AICc"), AIC(fit) + 2 * k * (k + 1) / (length(gas_t) - k - 1))
}

rows <- data.frame(t = gas_t, y = gas_y, weight = 1)
start <- list(A = max(gas_y), mu = 40, lag = 6)
growth("gompertz", gompertz, rows, start)
growth("logistic", logistic, rows, start)
growth("richards", richards, rows, c(start, nu = 0.5))

n <- length(gas_t)
steps <- data.frame(d = diff(gas_y), t0 = gas_t[-n], t1 = gas_t[-1], weight = 1 / step_u^2)
curve_at <- function(t, A, mu, lag) A * exp(-exp(mu * exp(1) / A * (lag - t) + 1))
growth("increments", d ~ curve_at(t1, A, mu, lag) - curve_at(t0, A, mu, lag), steps, start, stated = TRUE)

# Drying: Page's curve in weights
dried <- nls(w ~ end + (first - end) * exp(-k * t^m), data.frame(t = dry_t, w = dry_w),
             start = list(end = 30, first = 100, k = 0.4, m = 1), control = tight)
for (name in names(coef(dried))) say(paste("drying", name), coef(dried)[name])
say("drying u end", sqrt(diag(vcov(dried)))["end"])

# Calibration: lm and the band about it, turned round
standards <- data.frame(x = standard, s = signal)
line <- lm(s ~ x, standards)
say(c("line intercept", "line slope"), coef(line))
say(c("line u intercept", "line u slope"), sqrt(diag(vcov(line))))
say("line scatter", sigma(line))
misfit <- function(x) {
  at <- predict(line, data.frame(x = x), se.fit = TRUE)
  (mean(sample_signals) - at$fit)^2 / (sigma(line)^2 / length(sample_signals) + at$se.fit^2)
}
read <- (mean(sample_signals) - coef(line)[1]) / coef(line)[2]
say("line read", read)
edge <- function(x) misfit(x) - qt(0.975, df.residual(line))^2
say("line read low", uniroot(edge, c(read - 3, read), tol = 1e-12)$root)
say("line read high", uniroot(edge, c(read, read + 3), tol = 1e-12)$root)
pure <- anova(line, lm(s ~ factor(x), standards))
say(c("lack of fit F", "lack of fit p"), c(pure$F[2], pure$`Pr(>F)`[2]))
bend <- anova(line, lm(s ~ x + I(x^2), standards))
say(c("mandel F", "mandel p"), c(bend$F[2], bend$`Pr(>F)`[2]))
even <- summary(lm(resid(line)^2 ~ fitted(line)))$r.squared * length(signal)
say(c("even scatter", "even scatter p"), c(even, pchisq(even, 1, lower.tail = FALSE)))
say(paste("studentised", seq_along(signal)), rstudent(line))
say(paste("cook", seq_along(signal)), cooks.distance(line))

stated <- lm(signal ~ standard + I(standard^2), weights = 1 / signal_u^2)
say(c("stated intercept", "stated slope", "stated bend"), coef(stated))
say(c("stated u intercept", "stated u slope", "stated u bend"), sqrt(diag(summary(stated)$cov.unscaled)))
say(c("stated chi2", "stated p"),
    c(deviance(stated), pchisq(deviance(stated), df.residual(stated), lower.tail = FALSE)))

four <- nls(s ~ bottom + (top - bottom) / (1 + (middle / x)^steep), data.frame(x = bent_x, s = bent_s),
            start = list(bottom = 0, top = 4, middle = 6, steep = 1.2), control = tight)
for (name in names(coef(four))) {
  say(paste("four", name), coef(four)[name])
  say(paste("four u", name), sqrt(diag(vcov(four)))[name])
}

# Balance: generalised least squares in what the balances leave free
free <- qr.Q(qr(t(rules)), complete = TRUE)[, -(1:nrow(rules))]
white <- solve(t(chol(amount_V)))
closed <- lm(white %*% amount ~ white %*% free - 1)
say(paste("balance", seq_along(amount)), free %*% coef(closed))
say(paste("balance u", seq_along(amount)), sqrt(diag(free %*% summary(closed)$cov.unscaled %*% t(free))))
say(c("balance chi2", "balance p"),
    c(deviance(closed), pchisq(deviance(closed), nrow(rules), lower.tail = FALSE)))

# A class: one-way analysis of variance, critical values, pooling, counting
table <- anova(lm(value ~ factor(group), data.frame(value = class_value, group = class_group)))
sizes <- tabulate(class_group)
usual <- (sum(sizes) - sum(sizes^2) / sum(sizes)) / (length(sizes) - 1)
say("class within", sqrt(table$`Mean Sq`[2]))
say("class between", sqrt((table$`Mean Sq`[1] - table$`Mean Sq`[2]) / usual))
for (level in c(0.95, 0.99)) {
  p <- length(even_sizes)
  t2 <- qt(1 - (1 - level) / (2 * p), p - 2)^2
  say(paste("grubbs", level), (p - 1) / sqrt(p) * sqrt(t2 / (p - 2 + t2)))
  f <- qf(1 - (1 - level) / p, even_sizes[1] - 1, (p - 1) * (even_sizes[1] - 1))
  say(paste("cochran", level), f / (f + p - 1))
}

restricted <- function(tau2) {
  V <- diag(group_u^2 + tau2)
  one <- rep(1, length(group_y))
  P <- solve(V) - solve(V) %*% one %*% t(one) %*% solve(V) / sum(solve(V))
  -0.5 * (determinant(V)$modulus + log(sum(solve(V))) + t(group_y) %*% P %*% group_y)
}
tau2 <- optimize(restricted, c(0, 4 * var(group_y)), maximum = TRUE, tol = 1e-12)$maximum
together <- lm(group_y ~ 1, weights = 1 / (group_u^2 + tau2))
say("pooled tau", sqrt(tau2))
say(c("pooled mean", "pooled u"), c(coef(together), sqrt(vcov(together))))
say(c("pooled low", "pooled high"), confint(together))
alike <- deviance(lm(group_y ~ 1, weights = 1 / group_u^2))
say(c("pooled Q", "pooled p"), c(alike, pchisq(alike, length(group_y) - 1, lower.tail = FALSE)))

counted <- glm(cells ~ 1, family = poisson, control = glm.control(epsilon = 1e-14))
dispersion <- sum(resid(counted, "pearson")^2)
say("cells dispersion", dispersion / counted$df.residual)
say("cells p", 2 * min(pchisq(dispersion, counted$df.residual), pchisq(dispersion, counted$df.residual, lower.tail = FALSE)))

say(paste("holm", seq_along(p_values)), p.adjust(p_values, "holm"))
